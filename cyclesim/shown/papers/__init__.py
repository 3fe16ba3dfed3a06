"""Papers as PDF: data to a typesetter, never text into markup."""
