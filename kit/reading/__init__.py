"""Readers: files that people hand in become plain tables, with every fault named."""
