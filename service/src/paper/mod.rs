//! The paper route: sheets with a code, one version a pupil, and their keys.
//!
//! A sheet's code draws its questions from the pool ([`SheetCode::seed`]), so pool and code are all that is needed to know
//! what stood on it. One way the data flows: pool and code make a [`Sheet`] (what stands on it), `lay` puts it on pages
//! (where), `pdf` writes them; a browser prints the same [`Sheet`] from a template.

mod code;
mod content;
mod lay;
mod measure;
mod pdf;

pub use code::{NoCode, SheetCode};
pub use content::{KeyStep, Sheet, SheetQuestion, SheetStep, Space};
pub use lay::{Paper, PrintSettings};
pub use pdf::{PdfError, key, sheets};
