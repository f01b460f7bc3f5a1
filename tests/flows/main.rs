//! Whole flows, one module each.
