//! One file for each operation, by resource. Handlers translate between HTTP and the rest; rules live elsewhere.

pub mod health;
pub mod lti;
