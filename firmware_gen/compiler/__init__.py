"""From a show to the byte tables of its boards."""
