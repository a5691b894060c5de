import { readFileSync } from "node:fs";
import type { Plugin } from "vite";
import { defineConfig } from "vitest/config";
import { bench } from "./mock/plugin.ts";

const SHIPPED = ["preact", "@preact/signals", "uplot", "@fontsource-variable/atkinson-hyperlegible-next"];

/** Modules of the first page: all but its entry, the screens that come when they are opened, and the plots. */
const FIRST = /preload-helper|[\\/]preact[\\/]|signals|[\\/]ui[\\/]src[\\/](?!book[\\/]|practice|drawings|plot|main)[a-z]+\.tsx?$/;

/** The licences of what is built in travel with the screens. */
function licences(): Plugin {
  return {
    name: "licences",
    apply: "build",
    generateBundle() {
      const texts = SHIPPED.map(
        (name) => `${name}\n\n${readFileSync(`node_modules/${name}/LICENSE`, "utf8")}`,
      );
      this.emitFile({ type: "asset", fileName: "licences.txt", source: texts.join("\n\n----\n\n") });
    },
  };
}

export default defineConfig({
  plugins: [process.env["VITEST"] ? null : bench(), licences()],
  build: {
    outDir: "../src/fluxbench/web/static",
    emptyOutDir: true,
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    target: "es2022",
    // What the bench itself needs is one file: it packs better than in pieces.
    rolldownOptions: {
      output: { codeSplitting: { groups: [{ name: "first", test: FIRST, includeDependenciesRecursively: false }] } },
    },
  },
  test: {
    environment: "happy-dom",
    include: ["tests/**/*.test.ts", "tests/**/*.test.tsx"],
    // One worker that starts once: starting is what takes long on a small machine.
    pool: "threads",
    maxWorkers: 1,
    isolate: false,
  },
});
