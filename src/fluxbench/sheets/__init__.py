"""Paper: the sheet of a line-up, labels and track sheets of reels, as PDF files."""

from fluxbench.sheets._card import Card, card_of, told_otherwise
from fluxbench.sheets._card_gather import card_of_lineup, card_of_reel
from fluxbench.sheets._contents import Contents
from fluxbench.sheets._gather import contents_of
from fluxbench.sheets._labels import label_file_name, label_pdf, track_sheet_pdf
from fluxbench.sheets._press import PAPERS, file_name, pages_of, sheet_pdf
from fluxbench.sheets._record import in_house_or_none

__all__ = [
    "PAPERS",
    "Card",
    "Contents",
    "card_of",
    "card_of_lineup",
    "card_of_reel",
    "contents_of",
    "file_name",
    "in_house_or_none",
    "label_file_name",
    "label_pdf",
    "pages_of",
    "sheet_pdf",
    "told_otherwise",
    "track_sheet_pdf",
]
