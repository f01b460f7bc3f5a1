# The teacher's pages.
