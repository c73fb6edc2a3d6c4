"""Everything outside the core that could be exchanged: files, knowledge, paper."""
