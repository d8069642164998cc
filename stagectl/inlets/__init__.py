"""How is the daemon reached from outside?"""
