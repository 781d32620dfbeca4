"""The domain of a show, its motion, light and physics, rehearsals of it and pictures of them."""
