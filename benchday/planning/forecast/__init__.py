"""The forecast: many days of a model drawn and run, and what they say about the day to come."""
