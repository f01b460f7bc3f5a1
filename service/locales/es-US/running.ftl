# The coordinator's pages: platforms, keys, deliveries, use.
