# Workings drawn, charts, and marked questions.
