"""Plug-ins for geochem: one file per plug-in, nothing is imported before it is used."""
