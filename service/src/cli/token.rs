//! `tenths token`: tokens of the programming interface.

use super::{block_on, output};
use crate::clock::{Clock, SystemClock};
use crate::entropy;
use crate::storage::{self, ApiRole, ApiToken, Fingerprint};

/// What to do with tokens.
#[derive(Debug, clap::Subcommand)]
pub(super) enum TokenCommand {
    /// Make a token and print it; it is shown this once and stored only as a fingerprint
    Add(AddArguments),
}

/// Arguments of `tenths token add`.
#[derive(Debug, clap::Args)]
pub(super) struct AddArguments {
    /// The store: sqlite:PATH
    #[arg(long, env = "TENTHS_STORE", value_name = "STORE")]
    store: String,
    /// What its bearer may do: coordinator, teacher or auditor
    #[arg(long, value_name = "ROLE")]
    role: ApiRole,
}

pub(super) fn run(command: &TokenCommand) -> anyhow::Result<()> {
    let TokenCommand::Add(AddArguments { store, role }) = command;
    let store = storage::open(store)?;
    let secret = entropy::secret();
    let token = ApiToken { secret: Fingerprint::of(&secret), role: *role, created_at: SystemClock.now() };
    block_on(async { Ok(store.add_api_token(token).await?) })?;
    output::line(&secret)
}
