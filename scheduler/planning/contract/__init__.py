"""Weather days as a contract counts them."""
