//! What was measured, round by round, and the table of it.

use std::fmt::Write as _;
use std::io::Write as _;
use std::time::Duration;

use crate::client::Measured;
use crate::process::busy;

/// One round at one server.
#[derive(Debug, Clone)]
pub(crate) struct Round {
    pub(crate) a_second: f64,
    pub(crate) p50_ms: f64,
    pub(crate) p99_ms: f64,
    /// Processor time of the server for one answer, in microseconds: it shows less than rates who else was at work.
    pub(crate) busy_us: f64,
    /// The same of the client, with the platform, if that is at work; not a number where both cannot be told apart.
    pub(crate) client_us: f64,
    /// Steps that an answer waited for at the store, one after the other; not a number of bare servers.
    pub(crate) steps: f64,
}

/// Watches a server over a round.
pub(crate) struct Watch {
    server: u32,
    busy: Duration,
    client_busy: Duration,
    steps: f64,
}

impl Watch {
    /// Over a server that has taken that many steps of its store so far.
    pub(crate) fn over(server: u32, steps: f64) -> anyhow::Result<Self> {
        let (busy, client_busy) = (busy(server)?, busy(std::process::id())?);
        Ok(Self { server, busy, client_busy, steps })
    }

    /// The round, after which the server has taken that many steps.
    pub(crate) fn ended(self, measured: &Measured, steps: f64) -> anyhow::Result<Round> {
        let answers = measured.answers as f64;
        let us_each =
            |process, before| anyhow::Ok(busy(process)?.saturating_sub(before).as_secs_f64() * 1e6 / answers);
        Ok(Round {
            a_second: measured.a_second(),
            p50_ms: measured.percentile_ms(50),
            p99_ms: measured.percentile_ms(99),
            busy_us: us_each(self.server, self.busy)?,
            client_us: us_each(std::process::id(), self.client_busy)?,
            steps: (steps - self.steps) / answers,
        })
    }
}

/// The middle value: of an even number of them the upper one of the two in the middle.
pub(crate) fn median(values: impl IntoIterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.into_iter().collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

/// The medians of rounds, each figure by itself.
pub(crate) fn medians(rounds: &[Round]) -> Round {
    let of = |figure: fn(&Round) -> f64| median(rounds.iter().map(figure));
    Round {
        a_second: of(|round| round.a_second),
        p50_ms: of(|round| round.p50_ms),
        p99_ms: of(|round| round.p99_ms),
        busy_us: of(|round| round.busy_us),
        client_us: of(|round| round.client_us),
        steps: of(|round| round.steps),
    }
}

/// How ours compares with the limit, round by round.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Ratio {
    pub(crate) median: f64,
    least: f64,
    most: f64,
}

impl Ratio {
    /// Of rounds that were measured one after the other.
    pub(crate) fn of(ours: &[Round], limit: &[Round], figure: fn(&Round) -> f64) -> Self {
        let ratios: Vec<f64> =
            ours.iter().zip(limit).map(|(ours, limit)| figure(ours) / figure(limit)).collect();
        let (least, most) =
            (ratios.iter().copied().reduce(f64::min), ratios.iter().copied().reduce(f64::max));
        let none = f64::NAN;
        Self { median: median(ratios), least: least.unwrap_or(none), most: most.unwrap_or(none) }
    }

    pub(crate) fn percent(self) -> String {
        let [median, least, most] = [self.median, self.least, self.most].map(|ratio| ratio * 100.0);
        format!("{median:.0} % ({least:.0} to {most:.0})")
    }

    pub(crate) fn times(self) -> String {
        let Self { median, least, most } = self;
        format!("{median:.1} times ({least:.1} to {most:.1})")
    }
}

/// A figure against its goal.
#[derive(Debug)]
pub(crate) struct Figure {
    pub(crate) name: String,
    pub(crate) goal: String,
    pub(crate) measured: String,
    /// Whether the goal is reached; none for what is told beside it.
    pub(crate) reached: Option<bool>,
}

impl Figure {
    pub(crate) fn of(name: &str, goal: &str, measured: String, reached: bool) -> Self {
        Self { name: name.into(), goal: goal.into(), measured, reached: Some(reached) }
    }

    pub(crate) fn beside(name: &str, measured: String) -> Self {
        Self { name: name.into(), goal: String::new(), measured, reached: None }
    }
}

/// Prints the medians of servers' rounds: answers a second, how long one takes, how long it keeps processors busy at the
/// server and at the client, and how many steps of the store it waits for.
pub(crate) fn say_rounds(title: &str, rows: &[(&str, &[Round])]) {
    say(&format!(
        "{title:<40}{:>10} {:>9} {:>9} {:>9} {:>9} {:>6}",
        "answers/s", "p50 ms", "p99 ms", "busy us", "client us", "steps"
    ));
    for (name, rounds) in rows.iter().filter(|(_, rounds)| !rounds.is_empty()) {
        let Round { a_second, p50_ms, p99_ms, busy_us, client_us, steps } = medians(rounds);
        let (client_us, steps) = (or_nothing(client_us, 0), or_nothing(steps, 1));
        say(&format!(
            "  {name:<38}{a_second:>10.0} {p50_ms:>9.2} {p99_ms:>9.2} {busy_us:>9.0} {client_us:>9} {steps:>6}"
        ));
    }
}

/// A number with so many places, or nothing where it was not measured.
fn or_nothing(number: f64, places: usize) -> String {
    if number.is_nan() { String::new() } else { format!("{number:.places$}") }
}

/// Prints a line.
pub(crate) fn say(line: &str) {
    // A reader who has gone away needs no figures.
    let _ = writeln!(std::io::stdout(), "{line}");
}

/// The figures as a table.
pub(crate) fn table(figures: &[Figure]) -> String {
    let mut table = format!("{:<44} {:<18} {:<38} reached\n", "figure", "goal", "measured");
    for Figure { name, goal, measured, reached } in figures {
        let reached = reached.map_or("", |reached| if reached { "yes" } else { "NO" });
        // Writing to a string does not fail.
        let _ = writeln!(table, "{name:<44} {goal:<18} {measured:<38} {reached}");
    }
    table
}
