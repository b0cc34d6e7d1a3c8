"""What is handed over: the rider's page and the printed tags."""

from ledger.reports.gather import NoSuchJob, report_of
from ledger.reports.page import report_pdf, report_png
from ledger.reports.shapes import Report
from ledger.reports.typeset import PageFailed

__all__ = ["NoSuchJob", "PageFailed", "Report", "report_of", "report_pdf", "report_png"]
