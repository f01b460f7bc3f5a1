//! The teacher's pages under `/class`.
//!
//! ```text
//! GET  /class/place                     choose a pool and settings for a new quiz
//! POST /class/place                     return the chosen quiz, or nothing, to the platform
//! GET  /class/{placement}               the class: points, attempts, where each grade is
//! POST /class/{placement}/send-again    send grades again that could not be delivered: one pupil's, or all
//! POST /class/{placement}/compare       compare the gradebook with what was delivered
//! POST /class/{placement}/settle        choose between our grade and another mark in the gradebook
//! POST /class/{placement}/reset         set a pupil's work aside and take the grade back
//! POST /class/{placement}/roster        read the course's class list again
//! GET  /class/{placement}/times         when the quiz is open, to be changed
//! POST /class/{placement}/times         change it
//! …    /class/{placement}/paper…        printed sheets: see `paper` and `typing_in`
//! GET  /class/{placement}/{attempt}     one attempt that was handed in, step by step
//! ```
//!
//! Pupils appear by a short label made from the platform's opaque id, unless the service is set to keep names.

pub(crate) mod attempt;
mod delivery_view;
pub(crate) mod grades;
mod label;
pub(crate) mod overview;
pub(crate) mod paper;
mod people;
pub(crate) mod place;
pub(crate) mod roster;
pub(crate) mod times;
pub(crate) mod typing_in;
mod window_fields;
