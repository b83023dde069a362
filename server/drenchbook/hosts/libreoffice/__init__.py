"""What is packed into the LibreOffice extension: it runs in that program's Python, with the standard library only."""
