//! Where an archive keeps what can only be written when all else is.

use std::{
    fmt,
    io::{self, Cursor, Read, Seek, Write},
};

/// What is written once, from the beginning, and read once.
pub trait ScratchFile: Read + Write + Seek {}

impl<T: Read + Write + Seek> ScratchFile for T {}

/// Opens empty scratch files: in memory, or wherever the caller has room. This package knows no paths.
#[derive(Clone, Copy)]
pub struct Scratch(fn() -> io::Result<Box<dyn ScratchFile>>);

impl Scratch {
    /// In memory: what is kept grows with the package.
    pub const MEMORY: Self = Self(|| Ok(Box::new(Cursor::new(Vec::new()))));

    /// Files that `open` opens.
    #[must_use]
    pub const fn new(open: fn() -> io::Result<Box<dyn ScratchFile>>) -> Self {
        Self(open)
    }

    pub(super) fn open(self) -> io::Result<Box<dyn ScratchFile>> {
        (self.0)()
    }
}

impl fmt::Debug for Scratch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Scratch")
    }
}
