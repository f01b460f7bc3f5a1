// Tells the platform that the frame or window we are in may close (LTI Dynamic Registration 1.0). Holds no secret, so any
// window may hear it.
(window.opener || window.parent).postMessage({ subject: "org.imsglobal.lti.close" }, "*");
