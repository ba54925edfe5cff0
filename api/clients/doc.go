// Package clients holds no code: its tests let programs that GIS staff already
// have read, draw and edit a running service, and compare what they end up with
// with what the database says. They are behind the build tag clients; `make
// test-clients` installs what they need and runs them.
package clients
