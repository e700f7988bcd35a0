"""The how-to: what a job taught, for a site, a customer or an apprentice; it never learns whose amp it was."""
