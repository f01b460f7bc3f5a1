//! Packages in the open standards' formats: bytes in, bytes out.
//!
//! This crate turns proven items into files that other programs read, and reads what they report back. It knows no paths, network, clock, storage or
//! web types: the caller gives the time and the place to write to. It does no arithmetic on answers of its own; every
//! key and every predicted wrong answer comes proven from [`qbank`].
//!
//! Modules in reading order:
//!
//! 1. [`xml`] and [`archive`]: the only files that know the XML and the zip library;
//! 2. [`qti`]: the question and test standard: its words as types, the mapping from an item, and the package;
//! 3. [`results`]: result reports of that standard, read;
//! 4. [`processor`] and [`packages`]: items and packages of any program, read and played;
//! 5. [`examine`]: a package tried out before it is loaded.
pub mod archive;
pub mod examine;
pub mod packages;
pub mod processor;
pub mod qti;
pub mod results;
pub mod xml;
