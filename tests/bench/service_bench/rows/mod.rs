//! The rows of the table: each measures rounds, prints their medians, and returns its figures.

pub(crate) mod deliver;
pub(crate) mod launch;
pub(crate) mod page;
pub(crate) mod start;
pub(crate) mod submit;

use std::rc::Rc;

use crate::client::Requests;

/// The same requests to another path.
fn at_path(path: &str, requests: &[Vec<u8>]) -> Requests {
    let there = |request: &Vec<u8>| {
        let mut words = request.splitn(3, |&byte| byte == b' ');
        let mut part = || words.next().unwrap_or_default();
        let (method, _, rest) = (part(), part(), part());
        [method, b" ", path.as_bytes(), b" ", rest].concat()
    };
    Rc::from(requests.iter().map(there).collect::<Vec<_>>())
}
