//! What a placing page needs: the teacher's choice becomes the form that carries it back to the platform.

use crate::app::App;
use crate::lti::deep_linking::{self, Choice};
use crate::pages::deep_linking_return::DeepLinkingReturnPage;
use crate::session::{PlacingSession, SessionError};

/// The form that returns `choice` to the platform, also when the teacher placed nothing. Answer with its
/// `into_response()`; the browser submits it by itself.
///
/// # Errors
/// [`SessionError`] when the store fails or the platform is no longer registered.
pub async fn answer(
    app: &App,
    session: &PlacingSession,
    choice: &Choice,
) -> Result<DeepLinkingReturnPage, SessionError> {
    let registration = app.storage.registration(session.registration).await?.ok_or(SessionError::Missing)?;
    let signer = app.tool_keys.signer(registration.id).await.map_err(SessionError::Keys)?;
    let token = deep_linking::response(
        choice,
        &session.request,
        &registration,
        &session.deployment,
        &app.settings.public_url.join("/lti/launch"),
        &signer,
        app.clock.now(),
    );
    Ok(DeepLinkingReturnPage::new(session.request.return_url.clone(), token))
}
