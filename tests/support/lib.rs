//! Support for the whole-flow tests.
