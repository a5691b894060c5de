"""Paper: the sheet of a line-up, as a PDF file."""

from fluxbench.sheets._contents import Contents
from fluxbench.sheets._gather import contents_of
from fluxbench.sheets._press import file_name, pages_of, sheet_pdf

__all__ = ["Contents", "contents_of", "file_name", "pages_of", "sheet_pdf"]
