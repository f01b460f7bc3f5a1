//! The platform against a minimal tool of its own: whole flows over HTTP, nothing shared with the real tool side.

mod access;
mod browser;
mod grades;
mod launches;
mod placing;
mod registration;
mod stage;
mod visiting;
