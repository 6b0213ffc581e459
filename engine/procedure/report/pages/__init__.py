"""The pages of `evendraw explain`: one for each code a check can give, as data; it finds and renders nothing."""

from engine.procedure.report.pages.page import BASE, Page, files_of

__all__ = ["BASE", "Page", "files_of"]
