"""The pages, one folder each, and the questions over them."""
