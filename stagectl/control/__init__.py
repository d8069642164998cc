"""How is it done safely?"""
