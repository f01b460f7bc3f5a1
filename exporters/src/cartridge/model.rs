//! The question profile of a cartridge as types: an item of QTI 1.2.1 as far as the profile allows it.
//!
//! One item has one interaction: a text is typed, or choices are made. Conditions are tried in order; the first that
//! holds sets the score and shows feedback. There are no numbers here: a typed answer is compared as text.

/// An item of the profile.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CartridgeItem {
    /// Unique within its document.
    pub identifier: String,
    /// A short name.
    pub title: String,
    /// Which kind of item it is.
    pub profile: Profile,
    /// How much it counts beside others (`cc_weighting`).
    pub weighting: Option<String>,
    /// What it practises (`cc_question_category`).
    pub category: Option<String>,
    /// What is asked.
    pub prompt: Material,
    /// How it is answered.
    pub interaction: Interaction,
    /// In the order in which they are tried.
    pub conditions: Vec<Condition>,
    /// What conditions can show.
    pub feedback: Vec<Feedback>,
}

/// A kind of item (`cc_profile`).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Profile {
    /// One of several choices.
    MultipleChoice,
    /// Any of several choices.
    MultipleResponse,
    /// One of two.
    TrueFalse,
    /// A text that equals one of several.
    FillIn,
    /// A text that equals or contains one of several.
    PatternMatch,
    /// A text that people read.
    Essay,
}

impl Profile {
    /// Every kind.
    pub const ALL: [Self; 6] = [
        Self::MultipleChoice,
        Self::MultipleResponse,
        Self::TrueFalse,
        Self::FillIn,
        Self::PatternMatch,
        Self::Essay,
    ];

    /// The profile's name for it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::MultipleChoice => "cc.multiple_choice.v0p1",
            Self::MultipleResponse => "cc.multiple_response.v0p1",
            Self::TrueFalse => "cc.true_false.v0p1",
            Self::FillIn => "cc.fib.v0p1",
            Self::PatternMatch => "cc.pattern_match.v0p1",
            Self::Essay => "cc.essay.v0p1",
        }
    }

    /// The kind of that name.
    #[must_use]
    pub fn by_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|profile| profile.name() == name)
    }
}

/// A text that people read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Material {
    /// As it is.
    Plain(String),
    /// A fragment of HTML.
    Html(String),
}

impl Material {
    /// One paragraph of HTML for each text; the texts are escaped.
    #[must_use]
    pub fn paragraphs<'t>(texts: impl IntoIterator<Item = &'t str>) -> Self {
        let paragraph = |text: &str| {
            let escaped = text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
            format!("<p>{escaped}</p>")
        };
        Self::Html(texts.into_iter().map(paragraph).collect())
    }
}

/// How an item is answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Interaction {
    /// A text is typed.
    Text,
    /// One choice is made.
    One(Choices),
    /// Any number of choices is made.
    Several(Choices),
}

/// What can be chosen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choices {
    /// Whether their order may be changed.
    pub shuffle: bool,
    /// In order.
    pub choices: Vec<Choice>,
}

/// One choice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// What the response is when it is chosen.
    pub identifier: String,
    /// What is read.
    pub text: Material,
}

/// When, how many points, and what is shown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Condition {
    /// When.
    pub test: Test,
    /// What the score becomes: a number from 0 to 100 as written.
    pub score: Option<String>,
    /// Identifiers of feedback.
    pub shows: Vec<String>,
    /// Whether further conditions are tried when this one holds.
    pub continues: bool,
}

/// A test on the response.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Test {
    /// The response, or one of several, is this.
    Equals {
        /// This.
        text: String,
        /// Whether capital letters matter.
        case: bool,
    },
    /// The response contains this.
    Contains {
        /// This.
        text: String,
        /// Whether capital letters matter.
        case: bool,
    },
    /// There is no response.
    Unanswered,
    /// All of them hold.
    And(Vec<Test>),
    /// One of them holds.
    Or(Vec<Test>),
    /// It does not hold.
    Not(Box<Test>),
    /// Always: whatever is left.
    Other,
}

/// A text that a condition can show.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Feedback {
    /// Its name.
    pub identifier: String,
    /// What is read.
    pub text: Material,
}

impl CartridgeItem {
    /// Everything that a response can be to earn all points: texts or identifiers of choices, in the order of the
    /// conditions. What is only reached by exclusion or by several choices together is not told.
    pub fn right(&self) -> impl Iterator<Item = &str> {
        self.conditions
            .iter()
            .filter(|condition| condition.score.as_deref() == Some("100"))
            .flat_map(|condition| condition.test.equals())
    }
}

impl Test {
    /// The texts of which the response must equal one.
    #[must_use]
    pub fn equals(&self) -> Vec<&str> {
        match self {
            Self::Equals { text, .. } => vec![text],
            Self::Or(tests) => tests.iter().flat_map(Self::equals).collect(),
            Self::Contains { .. } | Self::Unanswered | Self::And(_) | Self::Not(_) | Self::Other => {
                Vec::new()
            }
        }
    }
}
