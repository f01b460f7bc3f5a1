//! Decimal questions for grades 4-6: drawn, proven, read and marked.
#![no_std]
extern crate alloc;
