"""A field app in small: sync down, take traverses offline, send them later, show the results.

Python 3.11 and its standard library. To be read in this order: `service` (one request, repeated
until it is answered), `signing_in` (a token), `store` (what is kept on the device), `exchange`
(sync, send, results), `taking` and `words` (questions and answers for people), `__main__` (the
command line).

What it does about bad lines rests on what the API promises:

* The client makes the id when a traverse is taken. The same id and content may be sent any number
  of times: the first is answered 201, the others 200, and it is stored once.
* What was answered 200 or 201 is durably stored.
* A correction that is current already changes nothing when it comes again.

So a request that got no answer is simply repeated, and whatever must survive a crash is in a
SQLite file before a byte leaves the device.
"""
