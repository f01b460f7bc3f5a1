//! The teacher's pages under `/class`.
//!
//! ```text
//! GET  /class/place                     choose a pool and settings for a new quiz
//! POST /class/place/preview             see what three pupils would get
//! POST /class/place                     return the chosen quiz, or nothing, to the platform
//! GET  /class/{placement}               the class: who needs what, pupils by questions, who has not started
//! GET  /class/{placement}/grades        points, attempts, where each grade is
//! GET  /class/{placement}/marks.csv     all answers as a table
//! POST /class/{placement}/attempts      allow one pupil one more attempt
//! POST /class/{placement}/send-again    send grades again that could not be delivered: one pupil's, or all
//! POST /class/{placement}/compare       compare the gradebook with what was delivered
//! POST /class/{placement}/settle        choose between our grade and another mark in the gradebook
//! POST /class/{placement}/reset         set a pupil's work aside and take the grade back
//! POST /class/{placement}/roster        read the course's class list again
//! GET  /class/{placement}/times         when the quiz is open, to be changed
//! POST /class/{placement}/times         change it
//! …    /class/{placement}/paper…        printed sheets: see `paper` and `typing_in`
//! GET  /class/{placement}/{attempt}     one attempt that was handed in, step by step
//! POST /class/{placement}/{attempt}/points  change the points of a step, or take that back
//! ```
//!
//! Pupils appear by a short label made from the platform's opaque id, unless the service is set to keep names.

pub(crate) mod attempt;
mod delivery_view;
mod draft;
pub(crate) mod grades;
pub(crate) mod grades_view;
mod label;
mod map;
mod needs;
pub(crate) mod overview;
pub(crate) mod paper;
mod people;
pub(crate) mod place;
pub(crate) mod points;
pub(crate) mod preview;
pub(crate) mod roster;
pub(crate) mod table;
pub(crate) mod times;
pub(crate) mod typing_in;
mod window_fields;

use crate::pages::class::View;
use crate::session::TeacherSession;

/// The views of a class, one of them the present one.
fn views(session: &TeacherSession, present: &str) -> Vec<View> {
    let class = format!("/class/{}", session.placement);
    [
        ("needs", "class-view-needs", class.clone()),
        ("grades", "class-view-grades", format!("{class}/grades")),
        ("paper", "paper-link", format!("{class}/paper")),
    ]
    .map(|(name, message, url)| View { message, url, present: name == present })
    .into()
}
