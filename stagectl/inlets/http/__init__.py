"""How is the daemon reached over HTTP?"""
