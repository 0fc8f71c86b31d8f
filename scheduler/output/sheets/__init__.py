"""Sheets for paper: what each holds, and how it becomes a page or a PDF."""
