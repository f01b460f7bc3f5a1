//! Everything that touches the world: command line, HTTP, storage, clock.
