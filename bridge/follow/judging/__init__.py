"""What forbids light to which head, and the word for it."""
