"""Tables in words for a person: where the bytes go, what they say."""
