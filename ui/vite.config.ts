import { defineConfig } from "vite";
import { bench } from "./mock/plugin.ts";

export default defineConfig({
  plugins: [bench()],
  build: {
    outDir: "../src/fluxbench/web/static",
    emptyOutDir: true,
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    target: "es2022",
  },
});
