//! The teacher's pages under `/class`.
//!
//! ```text
//! GET  /class/place                     choose a pool and settings for a new quiz
//! POST /class/place                     return the chosen quiz, or nothing, to the platform
//! GET  /class/{placement}               the class: points, attempts, where each grade is
//! POST /class/{placement}/send-again    send grades again that could not be delivered
//! POST /class/{placement}/roster        read the course's class list again
//! GET  /class/{placement}/times         when the quiz is open, to be changed
//! POST /class/{placement}/times         change it
//! GET  /class/{placement}/{attempt}     one attempt that was handed in, step by step
//! ```
//!
//! Pupils appear by a short label made from the platform's opaque id, unless the service is set to keep names.

pub(crate) mod attempt;
mod label;
pub(crate) mod overview;
mod people;
pub(crate) mod place;
pub(crate) mod roster;
pub(crate) mod times;
mod window_fields;
