// The form comes when something is added or edited: who only reads does not fetch it.
import { signal } from "@preact/signals";
import type { ComponentType } from "preact";
import { useEffect } from "preact/hooks";
import type { FormProps } from "./form";

const form = signal<ComponentType<FormProps> | null>(null);
const missing = signal(false);

async function fetchIt(): Promise<void> {
  missing.value = false;
  try {
    form.value ??= (await import("./form")).Form;
  } catch {
    missing.value = true;
  }
}

export function Form(props: FormProps) {
  useEffect(() => void fetchIt(), []);
  const Page = form.value;
  if (Page) return <Page {...props} />;
  if (!missing.value) return <p class="nothing" role="status">Fetching the form …</p>;
  return (
    <section class="panel say" role="alert">
      <p>The form could not be fetched: the bench does not answer.</p>
      <div class="row"><button class="primary" onClick={() => void fetchIt()}>Fetch it again</button></div>
    </section>
  );
}
