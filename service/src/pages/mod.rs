//! Pages: view structs and their templates. Views are filled by handlers; they never read the store and decide nothing.

pub mod deep_linking_return;
pub mod refusal;
