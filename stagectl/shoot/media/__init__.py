"""Is there enough record time for the day? From what a codec takes, and from what the media really lose."""
