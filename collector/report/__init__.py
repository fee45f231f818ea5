"""Renderers of one result: in the terminal, as JSON, as a page. They decide nothing and write nothing."""
