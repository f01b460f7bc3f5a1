//! Packages in the open standards' formats: bytes in, bytes out.
//!
//! This crate turns proven items into files that other programs read, and reads what they report back. It knows no paths, network, clock, storage or
//! web types: the caller gives the time and the place to write to. It does no arithmetic on answers of its own; every
//! key and every predicted wrong answer comes proven from [`qbank`].
//!
//! Modules in reading order:
//!
//! 1. [`xml`] and [`archive`]: the only files that know the XML and the zip library;
//! 2. [`source`]: where the items of a package come from;
//! 3. [`qti`]: the question and test standard: its words as types, the mapping from an item, and the package;
//! 4. [`cartridge`]: the same questions for platforms that load no later version than 1.2.1;
//! 5. [`results`]: result reports of that standard, read;
//! 6. [`processor`] and [`packages`]: items and packages of any program, read and played;
//! 7. [`examine`]: a package tried out before it is loaded.
pub mod archive;
pub mod cartridge;
pub mod examine;
mod in_order;
pub mod packages;
pub mod processor;
pub mod qti;
pub mod results;
pub mod source;
pub mod xml;
