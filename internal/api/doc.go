// Package api is the HTTP door: typed routes under /api/v1 with an OpenAPI 3.1
// description, problem answers (RFC 9457), live streams, health and metrics,
// and the web app's files.
//
// It holds no rule of the laboratory: it reads a request, asks lab.Service and
// writes what that answers. It has no accounts and no encryption; put a proxy
// with both before it to serve more than a network you trust.
package api
