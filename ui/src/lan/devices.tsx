// Devices: at the desk the code that lets one in, and the list of those that are; on a device itself.
import "./devices.css";
import { useSignal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { devicesOpen, lan, lanCall, leftOf, type Device, type Lan } from "../lan";
import { useDialog } from "../dialog";
import { clock } from "../scale";

export default function Devices() {
  const told = lan.value;
  const node = useDialog();
  if (!told) return null;
  return (
    <div ref={node} class="help devices panel" role="dialog" aria-label="Devices">
      <div class="panel-head"><h2>Devices</h2><button class="small" onClick={() => (devicesOpen.value = false)}>close</button></div>
      <div class={`devices-grid ${told.you.desk ? "" : "alone"}`}>
        {told.you.desk && <DoorOf told={told} />}
        <section class="inside">
          <Holder told={told} />
          {told.you.desk ? <List devices={told.devices ?? []} /> : <Own told={told} />}
        </section>
      </div>
      <p class="hint">What goes over this network can be overheard and changed by whoever is on it: use one that you trust, and revoke what you do not know.</p>
    </div>
  );
}

function DoorOf({ told }: { told: Lan }) {
  const at = useSignal(0);
  const now = useSignal(performance.now());
  useEffect(() => {
    const timer = setInterval(() => (now.value = performance.now()), 1000);
    now.value = performance.now();
    return () => clearInterval(timer);
  }, [told]);
  const code = told.code;
  const left = code ? leftOf(code.left_s, now.value) : 0;
  const link = code?.links[Math.min(at.value, code.links.length - 1)];
  const wrong = told.wrong_codes ?? 0;
  return (
    <section class="door" aria-label="Let a device in">
      <h3>Let a device in</h3>
      {code && link && left > 0 ? (
        <>
          <img src={link.picture} alt={`QR code of ${link.address} with the pairing code`} />
          <p class="digits" aria-label={`Pairing code ${code.digits.split("").join(" ")}`}>{code.digits.slice(0, 3)} {code.digits.slice(3)}</p>
          <p class="address">{link.address}</p>
          {code.links.length > 1 && (
            <span class="keys" role="group" aria-label="Which network">
              {code.links.map((one, i) => <button class="small" key={one.address} aria-pressed={one === link} onClick={() => (at.value = i)}>{one.address.replace(/^http:\/\/|:\d+$/g, "")}</button>)}
            </span>
          )}
          <p class="hint">{`Point its camera here, or open the address and type the digits. Good for one device, ${clock(left)} more.`}</p>
          <div class="row"><button class="small" onClick={() => void lanCall("code")}>Another code</button><button class="small" onClick={() => void lanCall("close")}>Let nobody in</button></div>
        </>
      ) : (
        <>
          <p class="shut">No code is open: nobody can be let in now.</p>
          <div class="row"><button class="primary" onClick={() => void lanCall("code")}>Draw a code</button></div>
        </>
      )}
      {wrong > 0 && <p class="hint">{`${wrong} wrong ${wrong === 1 ? "code was" : "codes were"} given since a device was let in.`}</p>}
    </section>
  );
}

function Holder({ told }: { told: Lan }) {
  return (
    <div>
      <h3>Controls</h3>
      <p class="who-now">{told.yours ? (told.you.desk ? "Here, at the desk" : "Here, on this device") : told.holder.name.replace(/^the desk$/, "The desk")}</p>
      <p class="hint">Whoever holds them sends commands; everybody else watches. Silence is everybody's.</p>
      {told.yours && told.ask && (
        <div class="row">
          <span><b>{told.ask.name}</b> asks for them.</span>
          <button class="small primary" onClick={() => void lanCall("give")}>Give them</button>
          <button class="small" onClick={() => void lanCall("keep")}>Keep them</button>
        </div>
      )}
      {!told.yours && told.you.desk && <div class="row"><button class="small" onClick={() => void lanCall("take")}>Take the controls</button></div>}
      {told.yours && !told.you.desk && !told.ask && <div class="row"><button class="small" onClick={() => void lanCall("give")}>Give them back to the desk</button></div>}
    </div>
  );
}

function List({ devices }: { devices: Device[] }) {
  return (
    <div>
      <h3>{devices.length === 0 ? "No device is paired" : "Paired"}</h3>
      <ul>
        {devices.map((one) => (
          <li key={one.id}>
            <span>
              <b>{one.name}</b>
              <small>{[`since ${one.paired_at.slice(0, 10)}`, one.here ? "here now" : "away", one.holds ? "holds the controls" : ""].filter(Boolean).join(" · ")}</small>
            </span>
            <button class="small" aria-label={`Revoke ${one.name}`} onClick={() => void lanCall(`devices/${one.id}/revoke`)}>Revoke</button>
          </li>
        ))}
      </ul>
    </div>
  );
}

function Own({ told }: { told: Lan }) {
  return (
    <div>
      <h3>This device</h3>
      <p>{`It is called “${told.you.name}” at the desk.`}</p>
      <div class="row"><button class="small" onClick={() => void lanCall(`devices/${told.you.id}/revoke`)}>Unpair this device</button></div>
    </div>
  );
}
