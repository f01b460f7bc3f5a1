//! What a cartridge cannot carry over, by name.
use std::fmt;

/// What was written.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CartridgeReport {
    /// Items of the profile: one for each step that is not left out.
    pub items: u64,
    /// What the items do less than the pool says.
    pub left_out: Vec<LeftOut>,
    /// Size of the cartridge.
    pub bytes: u64,
}

/// One thing that a step loses.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// The question's id.
    pub item: String,
    /// The step's id.
    pub step: String,
    /// What is lost.
    pub loss: Loss,
}

/// What can be lost, and why.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Loss {
    /// The step builds on an earlier one, and every step is an item of its own here: an own earlier value is not
    /// followed.
    FollowThrough,
    /// The step is left out: every value of an interval is right, and there are too many to list.
    TooManyValues,
    /// Of an interval of right values, those with more places than the answer asks for are not listed.
    ValuesBetween,
    /// The step is left out: an order, for which no wrong one is predicted that could be offered beside it.
    OrderAlone,
    /// The order is chosen among few instead of being made.
    OrderChosen,
    /// The step is left out: no spelling of the answer is read as right.
    NoSpelling,
}

impl Loss {
    /// Whether the step is not in the cartridge at all.
    #[must_use]
    pub fn is_whole_step(self) -> bool {
        matches!(self, Self::TooManyValues | Self::OrderAlone | Self::NoSpelling)
    }
}

impl fmt::Display for LeftOut {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { item, step, loss } = self;
        let told = match loss {
            Loss::FollowThrough => "no follow-through, because every step is an item of its own",
            Loss::TooManyValues => "left out, because more values are right than can be listed",
            Loss::ValuesBetween => "right values with more places than listed are marked wrong",
            Loss::OrderAlone => {
                "left out, because no wrong order is predicted that could be offered beside the right one"
            }
            Loss::OrderChosen => "the order is chosen among those predicted instead of being made",
            Loss::NoSpelling => "left out, because no spelling of its answer is read as right",
        };
        write!(f, "item '{item}', step '{step}': {told}")
    }
}
