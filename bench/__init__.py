"""What does stagectl cost beside bare floors, measured in one run?"""
