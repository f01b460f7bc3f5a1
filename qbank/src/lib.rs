//! Decimal questions for grades 4-6: drawn, proven, read and marked.
//!
//! This crate is the kernel of `tenths`. It is a pure function of its inputs: no files, no network, no clock, no
//! environment, no threads and no global randomness. `no_std` holds that wall: `std::fs` or a system clock do not
//! even resolve here. There are no binary floats either; every value is an exact decimal or an exact fraction.
//!
//! One way the data flows, each stage a type of its own that only the stage before can build:
//!
//! ```text
//! Family --seed, position--> Question --verify--> Item
//!                                                  |
//!                 pupil's text --read--> Reading --mark--> Mark --combine--> Grade
//! ```
//!
//! Modules in reading order:
//!
//! 1. [`decimal`]: a numeral as it is written; [`locale`]: its signs and language in a region; [`words`]: the same in
//!    words; [`units`]: what stands beside it; [`expression`]: the small language of answers;
//! 2. [`arithmetic`]: the routes that evaluate an expression; [`columns`]: the schoolbook route, drawn as working;
//! 3. [`misconceptions`]: the same machine, bent;
//! 4. [`family`], [`draw`], [`question`]: from an authored family to a proven item; [`profile`]: what makes it hard;
//! 5. [`accept`], [`reading`], [`marking`], [`grade`]: from a pupil's text to a grade;
//! 6. [`diagnosis`]: from many marks to what the answers are consistent with, and what to ask next;
//! 7. [`plan`], [`pool`], [`form`], [`bank`], [`receipt`]: many questions at once; [`statistics`]: what many marks say
//!    about questions and groups;
//! 8. [`working`]: what `tenths work` tells of any expression.
#![no_std]
#![deny(clippy::float_arithmetic)]
extern crate alloc;

pub mod accept;
pub mod arithmetic;
pub mod bank;
pub mod columns;
pub mod decimal;
pub mod diagnosis;
pub mod draw;
pub mod expression;
pub mod family;
pub mod form;
pub mod grade;
mod json;
pub mod locale;
pub mod marking;
pub mod misconceptions;
pub mod plan;
pub mod pool;
pub mod profile;
pub mod question;
pub mod reading;
pub mod receipt;
pub mod statistics;
pub mod units;
pub mod words;
pub mod working;
