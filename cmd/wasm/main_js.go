// Command wasm is the table of calculations for the browser and for Node. It
// sets globalThis.ullage = {list(), run(name, json)}, both of which answer JSON.
package main

import (
	"encoding/json"
	"syscall/js"

	"ullage/core/calc"
)

func main() {
	js.Global().Set("ullage", js.ValueOf(map[string]any{
		"list": js.FuncOf(func(js.Value, []js.Value) any {
			text, err := json.Marshal(calc.List())
			if err != nil {
				return err.Error()
			}
			return string(text)
		}),
		"run": js.FuncOf(func(_ js.Value, args []js.Value) any {
			if len(args) != 2 || args[0].Type() != js.TypeString || args[1].Type() != js.TypeString {
				return `{"error":{"kind":"call","message":"run takes the name of a calculation and its input as JSON text"}}`
			}
			return calc.RunText(args[0].String(), args[1].String())
		}),
	}))
	select {}
}
