//! Packages in the open standards formats: bytes in, bytes out.
