"""The manual: docs/ as a site, and the parts of docs/ that are made from the code."""
