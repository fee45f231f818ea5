"""The reports: renderers of one result, in the terminal, as JSON and as a page. They decide nothing and write nothing."""
