"""What is packed into the LibreOffice extension: it runs in that program's own Python, with its standard library only."""
