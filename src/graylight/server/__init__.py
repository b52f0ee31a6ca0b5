"""The map page's server: loopback HTTP over one open country (see docs/http.md)."""
