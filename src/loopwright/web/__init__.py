"""The shop app: server-rendered pages, an HTTP API and live updates over the use cases of `loopwright.api`."""
