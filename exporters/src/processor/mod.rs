//! A processor of the question standard: reads an item as any program may have written it, and plays it.
//!
//! It exists so that what a package says can be tried out before a platform does: scoring is judged by the bytes in the
//! file, not by what was meant. It knows the standard only, of versions 3.0, 2.2 and 2.1, and no habit of our own
//! items. Numbers are binary floats here, because they are on every platform; no answer of ours is worked out with them.
//!
//! One way the data flows: bytes -> [`document`] -> [`reading`] ([`declarations`], [`body`], [`rules`],
//! [`expressions`]) -> [`Item`] -> [`Session`].
//!
//! Not here: adaptive items beyond one attempt after the other, drawing on a screen, and interactions other than text
//! entry, choice, inline choice and order. The latter are kept by name, so that a caller can say what it cannot judge.
pub mod body;
pub mod declarations;
pub mod document;
pub mod expressions;
mod fault;
mod patterns;
pub mod reading;
pub mod references;
pub mod rules;
pub mod session;
#[cfg(test)]
mod tests;
pub mod value;
pub mod variables;

pub use self::{
    fault::{Failure, Fault, Problem, Reason},
    reading::{Item, NamedFile, read_item},
    session::{Play, Response, Session},
    value::{BaseType, Cardinality, Scalar, Value},
};
