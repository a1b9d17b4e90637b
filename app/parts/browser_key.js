// Keep the key of this browser for a working day; this page's own address only.
export default function ({ data }) {
  const safe = location.protocol === "https:" ? "; Secure" : "";
  document.cookie = `${data.name}=${data.key}; Max-Age=${data.seconds}; Path=/; SameSite=Strict${safe}`;
}
