# The coordinator's pages: families, plans, pools, packages.
