"""Messages out, one attempt and its honest outcome; replies in; the demo's own mailbox."""
