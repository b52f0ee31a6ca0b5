"""Open data for any place: asked for politely, kept, and made into a country. The only package that uses the network."""
