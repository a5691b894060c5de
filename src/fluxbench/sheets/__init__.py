"""Paper: the sheet of a line-up, labels and track sheets of reels, as PDF files."""

from fluxbench.sheets._contents import Contents
from fluxbench.sheets._gather import contents_of
from fluxbench.sheets._press import PAPERS, file_name, pages_of, sheet_pdf
from fluxbench.sheets._record import is_in_house

__all__ = ["PAPERS", "Contents", "contents_of", "file_name", "is_in_house", "pages_of", "sheet_pdf"]
