//! How fast the kernel draws and marks, as ratios against what bounds it on the same machine in the same run:
//! `cargo bench -p qbank --bench kernel [ROUNDS] [draw | mark]`. Rounds of limit, ours and peer alternate, and medians are told. Nothing
//! fails on time. The peers are scripts of `tests/bench/peers/`, run where there is a `python3`.
#![allow(clippy::print_stdout, reason = "a benchmark talks to the person who runs it")]
use std::{
    hint::black_box,
    path::Path,
    process::Command,
    str::FromStr,
    time::{Duration, Instant},
};

use qbank::{
    bank,
    family::Family,
    marking::{Marker, Policy},
    question::{Item, Question},
};

/// The family of two operands that is drawn and marked.
const FAMILY: &str = "add-ragged";
/// What can be asked for alone.
const NAMES: [&str; 2] = ["draw", "mark"];
/// Questions of a round, and of a slice of it.
const DRAWN: usize = 2_000;
const DRAWN_AT_ONCE: usize = 50;
/// Responses of a round, and of a slice of it.
const MARKED: usize = 100_000;
const MARKED_AT_ONCE: usize = 1_000;

/// What is measured beside each other, in nanoseconds for one.
struct Row {
    what: &'static str,
    limit: &'static str,
    times: [Vec<f64>; 3],
}

impl Row {
    fn new(what: &'static str, limit: &'static str) -> Self {
        Self { what, limit, times: Default::default() }
    }

    /// One round: the limit, ours, the peer.
    fn round(&mut self, limit: f64, ours: f64, peer: Option<f64>) {
        self.times[0].push(limit);
        self.times[1].push(ours);
        self.times[2].extend(peer);
    }

    fn tell(&mut self) {
        let [limit, ours, peer] = self.times.each_mut().map(|times| median(times));
        let ratio = ours / limit;
        println!("{}: {ours:.0} ns; {}: {limit:.1} ns; {ratio:.2} times the limit", self.what, self.limit);
        match self.times[2].len() {
            0 => println!("  no peer: python3 is missing"),
            _ => println!("  the peer's {peer:.0} ns are {:.1} times ours", peer / ours),
        }
    }
}

fn median(times: &mut [f64]) -> f64 {
    times.sort_by(f64::total_cmp);
    times.get(times.len() / 2).copied().unwrap_or(f64::NAN)
}

/// Nanoseconds for one of so many.
fn each(elapsed: Duration, count: usize) -> f64 {
    elapsed.as_secs_f64() * 1e9 / count as f64
}

fn timed(count: usize, work: impl FnOnce()) -> f64 {
    let begun = Instant::now();
    work();
    each(begun.elapsed(), count)
}

/// What a peer measured of itself: nanoseconds for one.
fn peer(script: &str, count: usize) -> Option<f64> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/bench/peers").join(script);
    let told = Command::new("python3").arg(script).arg(count.to_string()).output().ok()?;
    String::from_utf8(told.stdout).ok()?.trim().parse().ok()
}

/// The median of slices, each so short that a machine which others use, too, hardly ever takes the processor away in it.
fn sliced(slices: impl Iterator<Item = f64>) -> f64 {
    median(&mut slices.collect::<Vec<f64>>())
}

fn draw(family: &Family, seed: &str) -> f64 {
    let mut items = family.draws(seed, 0, "en-US");
    let mut slice = || {
        for item in items.by_ref().take(DRAWN_AT_ONCE) {
            black_box(item.expect("the bank's families are drawn"));
        }
    };
    sliced((0..DRAWN / DRAWN_AT_ONCE).map(|_| timed(DRAWN_AT_ONCE, &mut slice)))
}

/// Puts their receipts on questions again: the part of drawing that is not in the goal's words.
fn seal(items: &[Item]) -> f64 {
    sliced(items.chunks(DRAWN_AT_ONCE).map(|slice| {
        let questions: Vec<Question> = slice.iter().map(|item| item.question().clone()).collect();
        timed(slice.len(), || questions.into_iter().for_each(|question| drop(black_box(question.sealed()))))
    }))
}

/// Parses two numerals, adds them and prints the sum.
fn parse_add_print(numerals: &[[String; 2]]) {
    for [left, right] in numerals {
        let parsed = [left, right].map(|text| rust_decimal::Decimal::from_str(text).expect("a decimal"));
        black_box((parsed[0] + parsed[1]).to_string());
    }
}

/// Texts that pupils type for the questions in turn: right answers, predicted wrong ones, others.
fn typed(items: &[Item]) -> Vec<(usize, String)> {
    let text = |number: usize| {
        let index = number % items.len();
        let step = &items[index].steps[0];
        let predicted = &step.predicted[number / items.len() % step.predicted.len()];
        let text = match number % 10 {
            0..5 => step.answer.to_string(),
            5..9 => predicted.answer.to_string(),
            _ => format!("{}.{}", number % 97, number % 89),
        };
        (index, text)
    };
    (0..MARKED).map(text).collect()
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let rounds = arguments.iter().find_map(|argument| argument.parse().ok()).unwrap_or(7);
    let asked =
        |name: &str| !NAMES.iter().any(|other| arguments.iter().any(|one| one == other && one != name));
    let family = bank::family(FAMILY).expect("in the bank");
    let items: Vec<Item> = family
        .draws("typed", 0, "en-US")
        .take(500)
        .collect::<Result<_, _>>()
        .expect("the bank's families are drawn");
    if asked(NAMES[0]) {
        drawing(&family, &items, rounds);
    }
    if asked(NAMES[1]) {
        marking(&items, rounds);
    }
}

fn drawing(family: &Family, items: &[Item], rounds: usize) {
    let numerals: Vec<[String; 2]> =
        items.iter().map(|item| [0, 1].map(|given: usize| item.givens[given].value.to_string())).collect();
    let mut row = Row::new("draw, prove, predict, tell", "rust_decimal parse + add + print");
    let mut receipts = Vec::new();
    for round in 0..rounds {
        let limit = sliced((0..20).map(|_| timed(numerals.len(), || parse_add_print(&numerals))));
        let ours = draw(family, &format!("round {round}"));
        row.round(limit, ours, peer("draw.py", DRAWN));
        receipts.push(seal(items));
    }
    row.tell();
    println!("  of which the receipt, its record freed: {:.0} ns", median(&mut receipts));
}

fn marking(items: &[Item], rounds: usize) {
    let markers: Vec<Marker<'_>> = items.iter().map(|item| Marker::new(item, Policy::default())).collect();
    let typed = typed(items);
    let mut row = Row::new("read, mark, name", "rust_decimal parse");
    for _ in 0..rounds {
        let limit = sliced(typed.chunks(MARKED_AT_ONCE).map(|slice| {
            timed(slice.len(), || {
                for (_, text) in slice {
                    black_box(rust_decimal::Decimal::from_str(text).expect("a decimal"));
                }
            })
        }));
        let ours = sliced(typed.chunks(MARKED_AT_ONCE).map(|slice| {
            timed(slice.len(), || {
                for (index, text) in slice {
                    markers[*index].judge(|_| text).for_each(|step| drop(black_box(step)));
                }
            })
        }));
        row.round(limit, ours, peer("mark.py", MARKED));
    }
    row.tell();
}
