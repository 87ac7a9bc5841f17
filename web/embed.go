// Package web holds the built web app inside the binary. A fresh clone, built
// without Node, has only a page that says how to build it.
package web

import (
	"embed"
	"io/fs"
)

//go:embed all:dist
var dist embed.FS

// FS gives the app's files, or the page in its place.
func FS() fs.FS {
	dir := "dist"
	if _, err := fs.Stat(dist, "dist/app/index.html"); err == nil {
		dir = "dist/app"
	}
	sub, err := fs.Sub(dist, dir)
	if err != nil {
		panic(err) // dir is one of two constants
	}
	return sub
}
