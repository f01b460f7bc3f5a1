//! How large a family is, and how long it takes to draw 1,000 questions spread evenly over all of its positions:
//! `cargo run --release -p qbank --example spread [FAMILY]` (default: the largest family of several steps whose count
//! is exact). Seconds are those of this machine and tell nothing about another.
#![allow(clippy::print_stdout, reason = "an example talks to the person who runs it")]
use std::{error::Error, time::Instant};

use qbank::{
    bank,
    family::{Counted, Family},
};

const DRAWS: u64 = 1_000;

fn main() -> Result<(), Box<dyn Error>> {
    let family = match std::env::args().nth(1) {
        Some(name) => bank::family(&name)?,
        None => largest_chain()?,
    };
    let (steps, positions, counted) = (family.steps.len(), family.capacity(), family.counted().name());
    println!("{}: {steps} steps, {positions} positions (counted: {counted})", family.id);
    let last = u64::try_from(family.capacity()).unwrap_or(u64::MAX);
    let begun = Instant::now();
    let positions = (0..DRAWS).map(|index| last / DRAWS * index);
    let drawn = positions.filter(|position| family.draw("spread", *position, "en-US").is_ok()).count();
    println!(
        "{drawn} of {DRAWS} spread positions drawn and proven in {:.3} s",
        begun.elapsed().as_secs_f64()
    );
    Ok(())
}

fn largest_chain() -> Result<Family, Box<dyn Error>> {
    let chains = bank::families()?
        .into_iter()
        .filter(|family| family.steps.len() > 1 && family.counted() == Counted::Questions);
    Ok(chains
        .max_by_key(Family::capacity)
        .ok_or("the bank has no family of several steps with an exact count")?)
}
