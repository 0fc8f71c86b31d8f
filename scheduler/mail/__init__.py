"""The edge that sends: mail by SMTP, short texts by a webhook."""
