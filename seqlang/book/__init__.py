"""The show book: what a builder, a wearer and a helper need to know of a show, on paper."""
