"""What does a shoot need beyond its boxes?"""
