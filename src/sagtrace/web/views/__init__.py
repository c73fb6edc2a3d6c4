"""What pages show, worked out: drawings, papers and records that templates only write down."""
