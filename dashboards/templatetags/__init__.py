"""What templates of the pages may say besides Django's own."""
