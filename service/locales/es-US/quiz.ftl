# The pupil's pages.
