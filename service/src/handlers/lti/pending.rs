//! Deployments that are not registered: their launches are refused, and held for somebody to approve.

use serde_json::{Map, Value};

use crate::app::App;
use crate::lti::vocabulary as v;
use crate::storage::{Actor, Change, DeploymentId, Registration, StorageError};

/// Remembers the deployment of a token that passed all checks up to its deployment.
pub(super) async fn hold(
    app: &App,
    registration: &Registration,
    claims: &Map<String, Value>,
) -> Result<(), StorageError> {
    let Some(deployment) = claims.get(v::DEPLOYMENT_ID).and_then(Value::as_str) else { return Ok(()) };
    let by = Actor::Platform { issuer: registration.platform.issuer.clone() };
    let change = Change { at: app.clock.now(), by };
    app.storage.hold_deployment(registration.id, &DeploymentId::from(deployment), &change).await
}
