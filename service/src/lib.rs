//! Everything that touches the world: command line, HTTP, storage, clock.

pub mod practice;
