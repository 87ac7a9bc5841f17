//go:build !js

package main

import "os"

// main in any other build than js/wasm says how to build this.
func main() {
	os.Stderr.WriteString("wasm runs in a browser or in Node: build it with GOOS=js GOARCH=wasm\n")
	os.Exit(2)
}
