//! Whole flows, one module each.

mod decimal_cases;
mod words;
