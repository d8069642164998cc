"""How is a take played back at a station, picture and sound, and what was there put back?"""
