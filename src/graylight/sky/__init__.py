"""The sun over the country: where it stands, the light of the day, shade, and the compass."""
