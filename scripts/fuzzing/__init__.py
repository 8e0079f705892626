"""Cases for scripts/fuzz.py: what is damaged, how, and what the command must then still hold."""
