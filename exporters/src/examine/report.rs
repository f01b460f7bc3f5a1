//! What an examination has found, for people and for programs.
use std::fmt;

use serde::Serialize;

use crate::packages::{Manifest, PackageFault, PackageKind};

/// What an examination has found.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Report {
    /// What kind of package, in words.
    pub package: String,
    /// Whether nothing was found that does not hold.
    pub holds: bool,
    /// How many items.
    pub counts: Counts,
    /// What does not hold of the package as a whole.
    pub findings: Vec<Finding>,
    /// Each item, in the manifest's order.
    pub items: Vec<Judgement>,
}

/// How many items hold.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Counts {
    /// All of them.
    pub items: usize,
    /// Those that hold.
    pub hold: usize,
    /// Those that do not.
    pub do_not_hold: usize,
    /// Those that cannot be judged.
    pub cannot_be_judged: usize,
}

/// Something in the package that does not hold.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// The file.
    pub member: String,
    /// The line, from 1, where it is in one.
    pub line: Option<u64>,
    /// What is wrong, and what was expected.
    pub problem: String,
}

/// What was found of one item.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Judgement {
    /// Its file.
    pub member: String,
    /// The worst of its checks.
    pub verdict: Verdict,
    /// What was tried.
    pub checks: Vec<Check>,
}

/// Whether something holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// It does.
    Holds,
    /// That is not known; the reason is told.
    CannotJudge,
    /// It does not.
    DoesNotHold,
}

/// What was tried.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Topic {
    /// Whether the file can be read.
    Readable,
    /// Whether names in it stand for something.
    References,
    /// Whether the declared correct response gets the full score.
    CorrectResponse,
    /// Whether blank and wrong responses get less.
    WrongResponses,
    /// Whether a template draws numbers that satisfy its constraints, and judges them rightly.
    Clones,
    /// Whether a template's defaults satisfy its constraints.
    Defaults,
    /// Whether it can be drawn again as the package says, to the same receipt.
    Claim,
    /// Whether the declared keys are those proven.
    Keys,
    /// Whether the words shown are those of the question.
    Words,
    /// Whether each predicted wrong answer gets its own feedback and the points of our marking.
    Predictions,
}

/// One thing tried, and how it went.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Check {
    /// What was tried.
    pub topic: Topic,
    /// How it went.
    pub verdict: Verdict,
    /// In words.
    pub told: String,
}

impl Check {
    pub(super) fn new(topic: Topic, verdict: Verdict, told: impl Into<String>) -> Self {
        Self { topic, verdict, told: told.into() }
    }

    pub(super) fn holds(topic: Topic, told: impl Into<String>) -> Self {
        Self::new(topic, Verdict::Holds, told)
    }

    pub(super) fn fails(topic: Topic, told: &impl fmt::Display) -> Self {
        Self::new(topic, Verdict::DoesNotHold, told.to_string())
    }
}

impl Judgement {
    pub(super) fn new(member: String, checks: Vec<Check>) -> Self {
        let verdict = checks.iter().map(|check| check.verdict).max().unwrap_or(Verdict::Holds);
        Self { member, verdict, checks }
    }
}

impl From<PackageFault> for Finding {
    fn from(fault: PackageFault) -> Self {
        Self { member: fault.member, line: fault.line, problem: fault.problem.to_string() }
    }
}

impl Report {
    pub(super) fn new(manifest: &Manifest, findings: Vec<Finding>, items: Vec<Judgement>) -> Self {
        let count = |verdict| items.iter().filter(|item| item.verdict == verdict).count();
        let counts = Counts {
            items: items.len(),
            hold: count(Verdict::Holds),
            do_not_hold: count(Verdict::DoesNotHold),
            cannot_be_judged: count(Verdict::CannotJudge),
        };
        let package = match &manifest.kind {
            PackageKind::Qti(version) => format!("QTI {}", version.name()),
            PackageKind::CommonCartridge13 => "Common Cartridge 1.3".to_owned(),
            PackageKind::Other(namespace) => format!("a package of another kind, '{namespace}'"),
        };
        Self { package, holds: findings.is_empty() && counts.do_not_hold == 0, counts, findings, items }
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Holds => "holds",
            Self::CannotJudge => "cannot be judged",
            Self::DoesNotHold => "does not hold",
        })
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "{}, line {line}: {}", self.member, self.problem),
            None => write!(f, "{}: {}", self.member, self.problem),
        }
    }
}

/// A line for each item, and under it what does not hold or cannot be judged.
impl fmt::Display for Judgement {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.member, self.verdict)?;
        let told = self.checks.iter().filter(|check| check.verdict != Verdict::Holds);
        told.into_iter().try_for_each(|check| write!(f, "\n  {}: {}", check.verdict, check.told))
    }
}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}", self.package)?;
        self.findings.iter().try_for_each(|finding| writeln!(f, "does not hold: {finding}"))?;
        self.items.iter().try_for_each(|item| writeln!(f, "{item}"))?;
        let Counts { items, hold, do_not_hold, cannot_be_judged } = self.counts;
        let whole = if self.findings.is_empty() { "holds" } else { "does not hold" };
        write!(
            f,
            "the package as a whole {whole}; {items} items: {hold} hold, {do_not_hold} do not hold, \
             {cannot_be_judged} cannot be judged"
        )
    }
}
