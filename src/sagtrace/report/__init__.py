"""Verdict, plan and repair as a tree of sections, tables and figures."""
